"""How the demo site is made, part by part; `make_demo.py` puts them together."""
