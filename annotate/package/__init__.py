"""The evidence package: a signed BagIt bag of all that the hand-out rests on, and how it is checked."""
