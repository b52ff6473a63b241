"""What a plan asks of people, as facts: the order of work and the cut list, what falls due, what it takes.

Named tuples with sizes in base units (metres, square metres, litres, hours, degrees from true north) and the words
of the plan; sentences are made in `outputs`.
"""
