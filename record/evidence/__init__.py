"""What single readings say of a material: pure functions on readings and a table of materials.

Nothing here opens a book. `understand` turns texts into values,
`weights` says how probable each is under one material, `ranking` weighs all of a stone together. A reading is not a verdict: the words for people are
'consistent with' and 'not consistent with'.
"""
