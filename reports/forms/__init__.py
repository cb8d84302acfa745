"""Forms of what people read and of what they enter about it."""
