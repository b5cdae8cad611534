"""What becomes of one entry of the bench page: `desk` says what there is to work with, `rows` stores a row of a form, `dips`
times a tile, `undo` takes back. Each works within one transaction of the study book and answers, or turns the entry away.
"""
