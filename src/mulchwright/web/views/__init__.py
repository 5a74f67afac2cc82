"""How things are shown: tables, charts, drawings and wording, from data alone."""
