"""Linear programmes, relaxed or in whole numbers, one or very many: mathematics that knows no chemistry."""
