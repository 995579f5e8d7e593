"""What a message leads to: records, a reply, the next nudge.

Plain functions of (meaning, what is known, now): no input or output, so a test needs no mock.
"""
