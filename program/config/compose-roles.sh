#!/bin/sh
# Run once by the database's image on its first start: the two roles, and the database's owner.
set -eu

psql --set ON_ERROR_STOP=1 --username "$POSTGRES_USER" --dbname "$POSTGRES_DB" <<'SQL'
\getenv owner_password OWNER_PASSWORD
\getenv app_password APP_PASSWORD
CREATE ROLE service_owner LOGIN CREATEDB NOSUPERUSER NOCREATEROLE NOBYPASSRLS PASSWORD :'owner_password';
CREATE ROLE service_app LOGIN NOCREATEDB NOSUPERUSER NOCREATEROLE NOBYPASSRLS PASSWORD :'app_password';
ALTER DATABASE :"DBNAME" OWNER TO service_owner;
SQL
