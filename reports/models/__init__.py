"""What is kept about reports: what was sent, promised, noted and counted. All of it is appended, never edited."""
