"""The verbs of inspections: log a test, bring in a test book."""
