# What other folders may use of it, loaded when first used.

from .call import DEMO_NOTE as DEMO_NOTE  # Note that the answer is for the demo orchard
from .call import Call as Call  # What one call asks of one site
from .call import ColumnsOption as ColumnsOption  # --columns: a column map
from .call import FullOption as FullOption  # Option --full
from .call import JsonOption as JsonOption  # --json: print JSON
from .call import NowOption as NowOption  # --now: time of the answer
from .call import PastColumnsOption as PastColumnsOption  # --winters-columns: a column map
from .call import PastOption as PastOption  # --winters: past winters
from .call import PlotOption as PlotOption  # --plot: draw a picture too
from .call import RecordOption as RecordOption  # --record: application record
from .call import SiteOption as SiteOption  # --site: one site
from .call import SitesArgument as SitesArgument  # Sites, folders of them, names
from .call import SitesOption as SitesOption  # --site: the same
from .call import WeatherOption as WeatherOption  # --weather: a forecast file
from .call import note as note  # Print a remark beside the answer, on stderr
from .call import parse_now as parse_now  # Read a time, local or with its offset
from .call import progress as progress  # Show on stderr, to a person, that something is under way
from .call import say as say  # Print an answer
from .named import name_in as name_in  # The name that a site file gives itself
from .named import named_sites as named_sites  # The site files of what was named
from .named import one_site as one_site  # The site file of what an option named
from .screen import bar as bar  # Show how many parts of a longer piece of work are done
from .screen import check_free as check_free  # Refuse files that cannot be written
from .screen import check_picture as check_picture  # Refuse a picture's file that cannot be written
from .several import Each as Each  # What every site of a folder was told
from .several import Told as Told  # What one call was told
from .several import Unanswered as Unanswered  # A site without an answer, and why
from .several import answers_of as answers_of  # Answer one call or several
from .several import apart as apart  # Calls whose site can be read and told from the others
from .several import asked_together as asked_together  # Ask the services of several calls
from .several import each_site as each_site  # Answer every site of a folder
from .several import (
    gathered as gathered,
)  # The answers of several calls, or every mistake in a line
from .several import say_each as say_each  # Print the answer of every site
from .several import told as told  # Answer one call; a mistake becomes its line
