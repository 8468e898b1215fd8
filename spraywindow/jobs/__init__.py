"""One folder a job: its answer, its text and picture, its command."""
