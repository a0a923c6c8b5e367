"""The page and the JSON API: they parse, call one function of shop or book, and show."""
