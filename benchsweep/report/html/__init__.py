"""A document as one HTML file: needs no network, and no script to be read, searched and printed.

With its script (small, plain, in the file) values are read off the charts by pointer or by keyboard, and a
person may choose the pairs to be seen. Nothing else can run there: the page itself says so
(Content-Security-Policy).
"""

from benchsweep.report.html._page import CONTROLS, html_page, write_html

__all__ = ["CONTROLS", "html_page", "write_html"]
