"""What an operator puts on the network: webhooks and the program's health.

Pages only translate: what arrives goes to its channel, and no rule of the conversation lives here.
"""
