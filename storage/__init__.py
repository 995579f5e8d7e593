"""What is remembered: tables, queries and migrations, on SQLite or PostgreSQL.

One unit of work a message (`work.py`); repositories speak in our words and
return frozen values. Tables and sessions never leave this folder.
"""
