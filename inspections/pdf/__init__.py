"""What inspections put on paper."""
