"""The staff's pages, a file for each part of their work.

Each file ends with its rows of the table: path, method, roles, function. `bot/web/staff.py` joins them.
"""
