"""Published tables of the trade, each value with its source and how sure it is.

This folder imports nothing from the rest of the package. Importing a module here reads no file:
a table is read from ``data/*.yaml`` when it is first asked for, and then kept.

Modules: ``colours``, ``conductors``, ``fuses``, ``terminals``, ``limits``, ``bus``, ``cautions``;
``sources`` holds the list of pages the values were seen in.
"""
