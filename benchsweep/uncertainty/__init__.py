"""From the terms of an uncertainty budget to an expanded uncertainty of every trace."""
