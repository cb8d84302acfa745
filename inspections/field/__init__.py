"""The phone client at the truck: its shell, the signed data it answers from, and what it sends back."""
