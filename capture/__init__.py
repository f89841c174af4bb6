"""Where photographs come from, and whether they are fit to be measured."""
