"""Steps that change the form of the desk's database, oldest first; Alembic runs them."""
