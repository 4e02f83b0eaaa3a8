"""Many stations: what each hands over of its log, kept once, checked, cosigned, and searched as a whole.

SQLAlchemy, psycopg, alembic and fsspec are imported in this room only, and installed with the extra `plant`.
"""
