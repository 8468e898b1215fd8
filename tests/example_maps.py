"""Column maps of real files, as a user would write them."""

AIRPORT = """
[file]
where = { origin = "EWR" }
[time]
column = "time_hour"
[temp_c]
column = "temp"
unit = "degF"
[dew_point_c]
column = "dewp"
unit = "degF"
[wind_ms]
column = "wind_speed"
unit = "mph"
[gust_ms]
column = "wind_gust"
unit = "mph"
absent = "none_reported"
[wind_from_deg]
column = "wind_dir"
unit = "deg"
[rain_mm]
column = "precip"
unit = "in"
"""
TYPICAL_YEAR = """
[file]
skip_rows = 1
[time]
column = ["Date (MM/DD/YYYY)", "Time (HH:MM)"]
format = "%m/%d/%Y %H:%M"
timezone = "UTC-09:00"
year = 2001
[temp_c]
column = "Dry-bulb (C)"
unit = "degC"
[dew_point_c]
column = "Dew-point (C)"
unit = "degC"
[wind_ms]
column = "Wspd (m/s)"
unit = "m/s"
[cloud]
column = "TotCld (tenths)"
unit = "tenths"
[solar_wm2]
column = "GHI (W/m^2)"
unit = "W/m2"
stamp = "end"
[[rain_mm]] # depths of 193 mm and more are faulty traces at this dry-summer coast
column = "Lprecip depth (mm)"
unit = "mm"
stamp = "end"
when = { "Lprecip quantity (hr)" = "1" }
missing = [-9900, 193, 232, 236, 242, 243, 247, 252, 253, 254, 255, 508, 753]
[[rain_mm]]
column = "Lprecip depth (mm)"
unit = "mm"
stamp = "end"
covers = "6h"
when = { "Lprecip quantity (hr)" = "6" }
missing = [-9900, 193, 232, 236, 242, 243, 247, 252, 253, 254, 255, 508, 753]
"""
ISD_LITE = """
[file]
header = false
separator = "whitespace"
[time]
column = [1, 2, 3, 4]
format = "%Y %m %d %H"
timezone = "UTC"
[temp_c]
column = 5
unit = "degC"
scale = 0.1
missing = -9999
[dew_point_c]
column = 6
unit = "degC"
scale = 0.1
missing = -9999
[wind_from_deg]
column = 8
unit = "deg"
missing = -9999
[wind_ms]
column = 9
unit = "m/s"
scale = 0.1
missing = -9999
[cloud]
column = 10
unit = "oktas"
missing = -9999
[[rain_mm]]
column = 11
unit = "mm"
scale = 0.1
missing = -9999
trace = -1
stamp = "end"
[[rain_mm]]
column = 12
unit = "mm"
scale = 0.1
missing = -9999
trace = -1
stamp = "end"
covers = "6h"
"""
HUMAIN = """
[time]
column = "mtime"
timezone = "UTC"
[temp_c]
column = "tsa"
unit = "degC"
[rh_pct]
column = "hra"
unit = "%"
[wind_ms]
column = "vvt"
unit = "m/s"
[rain_mm]
column = "plu"
unit = "mm"
[solar_wm2]
column = "ens"
unit = "W/m2"
"""
SYNOP = """
[time]
column = "time_utc"
[temp_c]
column = "temp_c"
unit = "degC"
[rh_pct]
column = "rh_pct"
unit = "%"
[wind_ms]
column = "wind_kn"
unit = "kn"
[wind_from_deg]
column = "wind_dir_deg"
unit = "deg"
[cloud]
column = "cloud_oktas"
unit = "oktas"
[rain_mm]
column = "precip12h_mm"
unit = "mm"
stamp = "end"
covers = "12h"
"""
HALF_HOURS = """
rain_mm = "unknown" # the gauge of this file is faulty
[time]
column = "TIMESTAMP_START"
format = "%Y%m%d%H%M"
timezone = "UTC-08:00"
[temp_c]
column = "TA"
unit = "degC"
missing = -9999
[rh_pct]
column = "RH"
unit = "%"
missing = -9999
[wind_ms]
column = "WS"
unit = "m/s"
missing = -9999
height = "2.8 m"
[solar_wm2]
column = "SW_IN"
unit = "W/m2"
missing = -9999
"""
LOCAL_CLIMATE = """
[file]
where = { REPORT_TYPE = "FM-15" }
[time]
column = "DATE"
timezone = "%(zone)s"
round = "10min"
[temp_c]
column = "HourlyDryBulbTemperature"
unit = "%(temp)s"
flags = "s"
[dew_point_c]
column = "HourlyDewPointTemperature"
unit = "%(temp)s"
flags = "s"
[wind_ms]
column = "HourlyWindSpeed"
unit = "%(wind)s"
flags = "s"
[gust_ms]
column = "HourlyWindGustSpeed"
unit = "%(wind)s"
flags = "s"
stamp = "end"
absent = "none_reported"
[wind_from_deg]
column = "HourlyWindDirection"
unit = "deg"
missing = "VRB"
[rain_mm]
column = "HourlyPrecipitation"
unit = "%(rain)s"
trace = "T"
flags = "s"
stamp = "end"
"""
