"""The verbs: everything a person may do to gear, one module per noun."""
