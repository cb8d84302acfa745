"""The JSON interface of what is found out about items."""
