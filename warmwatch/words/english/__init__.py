"""The English catalogue: a phrase for each code, as `group.code`."""

from warmwatch.words.english import compare, level, phone, picture, proof, start, watch

PHRASES = {"band": "{low} to {high}"} | {
    f"{group}.{code}": text
    for part in (start, watch, level, proof, phone, compare, picture)
    for group, texts in part.GROUPS.items()
    for code, text in texts.items()
}
