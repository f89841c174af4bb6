"""How the tables of the book came to be, step by step, run by Alembic inside one transaction.

A step is a file in ``versions/`` that is never changed once books made with it exist, so it names its
columns itself and imports nothing from the rest of the package but `append_only`. There are no steps back: before a book
is brought up to date, `setstone.record.upgrading` copies its database.
"""

#: The revision this version of setstone works with. Kept here so that opening an up-to-date book need not
#: load Alembic, which takes longer than all the rest.
LATEST = "0011"
