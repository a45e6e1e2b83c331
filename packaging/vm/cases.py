ALL = {}
