"""What `manage.py bench intake` measures: each figure beside a reference measured
in the same run, on a database of its own that is thrown away afterwards.

A machine differs from day to day by more than most changes are worth, so figures are ratios.
"""
