"""Ways to get readings: `open_link(address)` gives a Link, whatever the kind."""

from warmwatch.core.notice import Notice
from warmwatch.links.address import Address, parse_address
from warmwatch.links.base import Link, LinkItem, open_link

__all__ = ["Address", "Link", "LinkItem", "Notice", "open_link", "parse_address"]
