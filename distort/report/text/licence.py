"""What is said of music that may not leave the session."""

NO_LICENCE = (
    "no licence that permits sharing is stated for the music (in session.toml, [programme] file and licence, such as "
    "CC0-1.0; CC-BY-4.0 needs a credit as well)"
)
