"""What is done for those who read reports."""
