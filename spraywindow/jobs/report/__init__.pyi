# What other folders may use of it, loaded when first used.

from .command import report as report  # Write a page with the whole answer
from .page import PAGE_MARK as PAGE_MARK  # By which a page of ours is known
from .sites import sites_html as sites_html  # One page of several sites
