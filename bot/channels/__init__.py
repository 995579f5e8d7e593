"""One file for each way in and out; none imports another.

A channel turns what arrived into one `Incoming`, stores it, then acknowledges it,
and sends what the outbox hands it. No wording and no rules live here.
"""
