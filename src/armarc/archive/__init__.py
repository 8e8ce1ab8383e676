"""A laboratory's archive: thousands of recordings measured into one Parquet dataset, schema ``armarc.archive/1``."""
