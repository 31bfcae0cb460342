"""The plan of a study: its schema, its reading, and the ready-made protocols."""
