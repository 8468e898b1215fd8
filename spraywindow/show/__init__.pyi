# What other folders may use of it, loaded when first used.

from .amounts import System as System  # Whose units: metric or US
from .amounts import amount_in as amount_in  # Write an amount in a reader's units
from .amounts import amount_parts as amount_parts  # The figure and the unit of `amount_in`
from .amounts import amount_words as amount_words  # Write an amount of a reason
from .amounts import can_show as can_show  # Whether a limit's unit means something to a reader
from .amounts import date_words as date_words  # A date with its year: "5 Mar 2026"
from .amounts import dose_words as dose_words  # Write an amount in the user's own measure: "1 cup"
from .amounts import duration_words as duration_words  # Write a duration as people do: "25 min"
from .amounts import figures as figures  # Write a number with three figures, whole from 100 on
from .amounts import rain_words as rain_words  # Bounds of rain: one amount where they meet
from .amounts import reason_words as reason_words  # Put a reason into words, in the reader's units
from .amounts import shown as shown  # Write a number in the reader's system, with its unit
from .amounts import shown_parts as shown_parts  # The figure and the unit of `shown`
from .files import check_ours as check_ours  # Refuse to write over what is not ours
from .files import write_new as write_new  # Write a file whole or not at all
from .json import keys_of as keys_of  # The keys that a class gives; None for a plain value
from .json import number as number  # Round a number for JSON; NaN and infinity become None
from .json import plain as plain  # An answer as dicts, lists, texts and numbers, as in its JSON
from .json import to_json as to_json  # Write an answer
from .notices import EARLY as EARLY  # What people read past the last hour told
from .notices import FEEDING as FEEDING  # What to mind in feeding
from .notices import FEW_WINTERS as FEW_WINTERS  # What to mind with few winters
from .notices import FULL as FULL  # How to see the tables behind a short answer
from .notices import LABEL as LABEL  # That the label is the law
from .notices import SPRAYING as SPRAYING  # What to mind in spraying
from .notices import Words as Words  # What says a JSON key of a class in words
from .plots import EDGE as EDGE  # Colour of limits and medians
from .plots import GRID as GRID  # Colour of rules and ticks
from .plots import HATCH as HATCH  # Pattern of hatched areas
from .plots import INK as INK  # Colour of words and lines
from .plots import LINE_PX as LINE_PX  # Height of a line of small print
from .plots import NARROW_PX as NARROW_PX  # Width for a phone [px]
from .plots import NIGHT as NIGHT  # Colour of the night
from .plots import PAPER as PAPER  # Colour of the background
from .plots import QUIET as QUIET  # Colour of small print
from .plots import SMALL as SMALL  # Size of small letters [px]
from .plots import TEXT as TEXT  # Size of usual letters [px]
from .plots import WIDE_PX as WIDE_PX  # Width for a wide screen or paper [px]
from .plots import bare as bare  # Take frame, ticks and background from axes
from .plots import check_suffix as check_suffix  # Refuse what is not PNG or SVG
from .plots import look as look  # Draw and save inside this
from .plots import name_lines as name_lines  # Limits in words, wrapped to so much room
from .plots import name_track as name_track  # Name a track over its left corner
from .plots import new_figure as new_figure  # An empty figure of a size on screen
from .plots import picture_mark as picture_mark  # By which a picture of ours is known
from .plots import round_ticks as round_ticks  # Round figures from `low` to `high`
from .plots import save_picture as save_picture  # Write a figure as PNG or SVG by the suffix
from .plots import set_height as set_height  # Give a figure its height, once it is known
from .plots import set_scale as set_scale  # Fit a track's scale to its values, NaN aside
from .plots import set_ticks as set_ticks  # Figures at a track's left, and a rule down it
from .plots import wrapped as wrapped  # Wrap words to so many letters a line
from .svg import inline_svg as inline_svg  # Give a figure as SVG for a page
from .text import GAP as GAP  # Spaces between the columns of a table
from .text import WIDTH as WIDTH  # Columns of a sheet
from .text import folded as folded  # Fold a paragraph of our own papers where a line is too long
from .text import paragraph as paragraph  # Wrap a line of prose, later lines indented
from .text import table_text as table_text  # Set a plain table
from .words import clock as clock  # Local clock time, "10:00"
from .words import hours_words as hours_words  # Local hours of one day on the clock: "10:00-13:00"
from .words import source_line as source_line  # Where the weather came from, how old it is
