"""What the headers of a reply say about time; what cannot be read counts as not said."""

from __future__ import annotations

import re
from datetime import UTC
from email.utils import parsedate_to_datetime

import pandas as pd
import requests


def http_date(text: str | None) -> pd.Timestamp | None:
    """Read the date of a header in UTC; None where there is none that can be read."""
    try:
        date = parsedate_to_datetime(text or "")
        return pd.Timestamp((date if date.tzinfo else date.replace(tzinfo=UTC)).astimezone(UTC))
    except (ValueError, OverflowError):
        return None


def wait_asked_s(text: str | None) -> float | None:
    """Seconds that a Retry-After asks for, None where it is neither whole seconds nor a date.

    References
    ----------
    .. [1] RFC 9110, section 10.2.3.
    """
    if re.fullmatch(r"\s*[0-9]+\s*", text or ""):
        return float(text or "")
    date = http_date(text)
    return None if date is None else max((date - pd.Timestamp.now("UTC")).total_seconds(), 0.0)


def mend_expiry(response: requests.Response, **_: object) -> None:
    """Put right an Expires or a max-age that the cache would raise on.

    References
    ----------
    .. [1] RFC 9111, section 5.3: an invalid Expires is a time in the past; section 1.2.2: seconds
       beyond all reason count as 2 ** 31.
    """
    headers = response.headers
    if "Expires" in headers and http_date(headers["Expires"]) is None:
        headers["Expires"] = "0"
    if "Cache-Control" in headers:
        headers["Cache-Control"] = re.sub(r"[0-9]{11,}", str(2**31), headers["Cache-Control"])
