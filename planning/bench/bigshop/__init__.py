"""A shop grown to years and many tables out of a small one that was really worked out.

The small shop (two tables, some whole weeks) comes from the example shop's own maker, so its lines
went through intake, matching, plans, wear and postings. Here its rows are copied: sideways to more
tables, and backwards in time by whole weeks of wall time, with new ids, numbers and keys. What only
the present has (open runs, waiting sheets, fitted pieces) is ended in the older copies, figured by
the same services as ever, and every month but this one is closed by them.
"""
