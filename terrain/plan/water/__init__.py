"""The cascade of stores and catchments, its storms and its years, and accounts that close."""
