# What other folders may use of it, loaded when first used.

from .read_file import read_weather as read_weather  # Read a CSV or Parquet file
