"""What an unknown instrument sends, told from bytes and times alone: no port, no clock, no files but in `ear`.

`search` finds speed and framing, `ends` the end of a line, `layouts` the fields around a number, `conclude`
weighs the layouts against what the person at the bench did. `writing` makes a profile file of it and `proof`
runs the real codec over what was heard. Whatever cannot be told is said, never guessed.
"""
