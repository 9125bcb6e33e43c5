"""Every sentence, number, unit, plural and place name that a person reads, made from facts.

`diagnosis` hands out facts and `bench` events; what is said about them is said here, by functions small
enough to read aloud, so that the terminal, the report, the pictures and the bench page say the same. A new
theme is a new module here.

The style (the whole of it, with the list of words: docs/words.md):

- Everyday workshop English, for a reader who knows looms and no computers. Active verbs.
- One idea a sentence. The thing before the number; the action before the reason.
- One word for one thing: circuit, swapped, shorted, broken wire, poor joint, clipped together, not checked.
- What nobody measured is "not checked", never "right". No verdict calls a vehicle safe.
- Numbers come from `numbers`, points and wires from `places`, kinds of fault from `labels`.
- An option says its default as "(default 300)". A heading is the noun that people look for.
"""
