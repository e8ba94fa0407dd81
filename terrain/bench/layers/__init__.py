"""The ground as pictures and lines to lay works out on."""
