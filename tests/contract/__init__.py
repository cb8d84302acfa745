"""The service against an independent reading of its contract, through its commands."""
