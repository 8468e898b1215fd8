# What other folders may use of it, loaded when first used.

from . import record as record  # The application record: add, correct, withdraw
from .after_rain import WASHED as WASHED  # Tells how much of a round's copper is left
from .after_rain import Advice as Advice  # What to do about a round
from .after_rain import after_rain as after_rain  # Say whether a round may be kept
from .after_rain import in_doubt as in_doubt  # Rounds that rain may have washed off, not marked
from .after_rain import material_sprayed as material_sprayed  # The material of an entry
from .entry import WEATHER_FIELDS as WEATHER_FIELDS  # Fields a weather table can fill in
from .entry import Application as Application  # One application of one product at one site
from .export import check_record as check_record  # Verify a file and its digests
from .export import csv_cell as csv_cell  # A value for a cell of CSV: never a formula
from .export import every_receipt as every_receipt  # All receipts, by their hash
from .export import export_csv as export_csv  # Give rows as CSV (RFC 4180), one a line
from .export import export_json as export_json  # Give rows as a JSON text
from .export import import_json as import_json  # Make a new record of a whole one's JSON
from .export import judged_of as judged_of  # What came of the chances said, row for row
from .export import receipts_of as receipts_of  # The receipts of rows, by their hash
from .export import row_of as row_of  # One row as plain values
from .export import seen_of as seen_of  # What was seen, row for row
from .file import Kept as Kept  # A row of the record: an entry, and when entered
from .file import Record as Record  # An open record; close it, or use it in a ``with`` statement
from .file import open_record as open_record  # Open the application record
from .outcomes import Outcome as Outcome  # A chance that was said, and what came of it
from .outcomes import keep_outcomes as keep_outcomes  # Keep what came of receipts
from .outcomes import learned_at as learned_at  # What a site's own answers teach
from .outcomes import outcomes as outcomes  # What came of every receipt judged
from .outcomes import receipt_hash as receipt_hash  # The hash by which a receipt is known
from .receipts import keep_receipt as keep_receipt  # Keep a receipt by itself
from .receipts import kept_receipts as kept_receipts  # Every receipt of a site
from .record import EXACT as EXACT  # Decimals of a share of a round: three thirds make a whole
from .record import current as current  # Give the entries that hold
from .rules import RULES as RULES  # Record-keeping rules by name
from .rules import Minded as Minded  # What there is to mind about an entry
from .rules import cautions_for as cautions_for  # Say in short lines what to mind about an entry
from .rules import derived as derived  # Give what follows from the fields of an entry
from .rules import missing_for as missing_for  # Name what a record still lacks under a rule
from .season_done import season_rounds as season_rounds  # Rounds of a growing year
from .season_done import with_rounds as with_rounds  # Add recorded rounds to a site
from .seen import Sighting as Sighting  # Something seen at a site on a local day
from .seen import as_seen as as_seen  # The site with what was seen there
from .seen import keep_seen as keep_seen  # Keep what was seen
from .seen import sightings as sightings  # What was seen and is not undone
from .seen import taught as taught  # What notes of one kind teach
from .seen import taught_words as taught_words  # The same in words
from .seen import undo_seen as undo_seen  # Take back what was seen
from .weather_then import came as came  # Keep the part that is past, not forecast
from .weather_then import extremes_between as extremes_between  # Temperature extremes [degC]
from .weather_then import rain_between as rain_between  # Least and most rain [mm]
from .weather_then import with_weather as with_weather  # Fill in weather as estimated
from .written import changes_from as changes_from  # Changes that a correction makes
from .written import entry_from as entry_from  # Make an entry of what is written
from .written import read_entry_file as read_entry_file  # Read a TOML or JSON file of fields
from .written import refuse_ahead as refuse_ahead  # Refuse a round not done yet
from .written import share_of_blocks as share_of_blocks  # Their share of a round
from .written import strange_names as strange_names  # Names that a site does not know
