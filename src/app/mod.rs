//! What a person can do: allow, load, compute, save, record. Pages, API, command line and importer call the same functions.
