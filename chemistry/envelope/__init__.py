"""The envelope: what fish, hands, glass and keeper will meet, reckoned anew from a finished answer and held to limits.

It trusts no part of the way to the answer: it reads the answer's own figures, reckons with its own plain arithmetic, and
shares the tables with those who made it, but none of their functions. Every limit is a row of tables/limits.csv.
"""
