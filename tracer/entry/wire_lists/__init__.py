"""Wire lists of a workshop, a maker or a drawing office, one wire a row, taken in as sheets that a person can go on editing.

`tables` reads CSV, TSV and XLSX to rows of text, `columns` finds out which column says what, `rows` turns a row into a wire or names the reason why not,
`kinds` guesses what each part is, `sheets` writes the files; `take_in` is the whole way.
"""
