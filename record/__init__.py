"""The stone's test record: the book, its photographs, decisions, readings and journal."""
