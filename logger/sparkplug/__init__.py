"""Sparkplug B (ISO/IEC 20237), a second way to the plant beside the JSON messages. Off unless the bench file asks.

One message is listened to: the request to be born again, and all it can do is to send the births once more.
"""
