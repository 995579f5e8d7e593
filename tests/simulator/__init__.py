"""An independent world to judge the forecast by: backyard piles, their weather and their keepers.

Richer than the core and sharing no code with it: five shells of heat, water, oxygen and matter, two-hourly
steps, every pile drawn from literature-wide distributions. `bank.py` makes piles and their truth; nothing
here is shipped.
"""
