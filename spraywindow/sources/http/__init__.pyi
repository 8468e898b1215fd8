# What other folders may use of it, loaded when first used.

from .fetch import OLDEST_COPY_H as OLDEST_COPY_H  # Oldest stand-in copy [h]
from .fetch import Fetched as Fetched  # How old an answer is, and what to know of it
from .fetch import get_json as get_json  # Fetch a JSON document
from .folder import cache_folder as cache_folder  # The folder of kept replies
from .folder import cache_trouble as cache_trouble  # Say that the cache fails, and the cure
from .reply import CURE as CURE  # What to do when a service fails
from .reply import ServiceRefusal as ServiceRefusal  # The service answered with an error status
from .reply import block as block  # Walk to a block of a reply, or say which one is missing
from .reply import document as document  # Read JSON in any Unicode encoding
from .reply import hour_stamps as hour_stamps  # Read the stamps of hours, in order
from .reply import numbers as numbers  # Read a list of numbers and nulls; null is NaN
from .reply import odd as odd  # Make the error for a reply that is not as the service describes it
from .reply import refused as refused  # Make the error for an error status
from .reply import stamps as stamps  # Read ISO 8601 stamps, of UTC where they name no offset
from .reply import what_failed as what_failed  # Say in one line why no answer came
from .session import OUT as OUT  # Failures in a row after which a host fails as a whole
from .session import Result as Result  # What the work of `within` gives
from .session import make_polite as make_polite  # Set time-outs, retries and name
from .session import polite_session as polite_session  # Open the shared session
from .session import within as within  # Do the work in a thread of its own
