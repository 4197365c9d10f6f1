# One image for web, worker, beat and migrations; docker-compose.yml says which is which.
FROM python:3.12-slim-bookworm

ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 PIP_NO_CACHE_DIR=1
WORKDIR /srv/register

COPY requirements.txt .
RUN pip install -r requirements.txt

COPY . .
# collectstatic reads no secret; the key it makes goes with the folder it was made in.
RUN DATABASE_URL=sqlite:////tmp/build/none.sqlite3 python manage.py collectstatic --no-input \
    && rm -r /tmp/build \
    && useradd --system --uid 10001 register \
    && install --directory --owner register data

USER register
EXPOSE 8000
CMD ["gunicorn", "shop.wsgi", "--config", "python:shop.gunicorn"]
