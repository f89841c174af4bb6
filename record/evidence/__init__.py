"""What the readings of a stone agree with: pure functions on readings and a table of materials.

Nothing here opens a book. The way of the data: `understand` (texts into values) → `evidence` (which of them
count, and together with which) → `rank` (how well each material explains them) → `propose` (the test that
would tell most). A reading is not a verdict: the results say 'consistent with' and 'not consistent with'.
"""
