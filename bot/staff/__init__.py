"""What the programme's staff get out of the records: figures, reports, posters, files in and out.

Values in, values or bytes out; no page, no query and no clock stands here.
"""
