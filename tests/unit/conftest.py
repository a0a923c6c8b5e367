"""The book in a folder and the book in PostgreSQL, for the tests here that want one."""

from book_places import book, book_place, postgresql, postgresql_place  # noqa: F401 - fixtures
