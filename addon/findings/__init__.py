"""What the last build has to say, and flying to the places."""

#: Modules with something to register, in order.
MODULES = ("finding_list", "panel")
