"""The whole visit from the phone: the page before a watch runs, during it, and after it ended."""
