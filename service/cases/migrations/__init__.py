"""Steps that bring a database to the present tables, run by Alembic."""
