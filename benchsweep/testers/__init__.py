"""What field testers told: plain CSV by a mapping file, typed-in numbers; their declared accuracy as data.

Nothing here knows the format of any maker: a mapping (TOML) says what the columns of a file mean.
"""

__all__: list[str] = []
