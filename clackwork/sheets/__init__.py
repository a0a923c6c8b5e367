"""Paper: the test report and the site promise as PDF, and their charts. Formats only, never computes."""

from clackwork.sheets.sheets import write_sheets

__all__ = ["write_sheets"]
