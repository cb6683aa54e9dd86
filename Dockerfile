FROM python:3.11-slim-bookworm

RUN useradd --create-home --uid 10001 fettle && mkdir -p /srv/fettle/var && chown fettle /srv/fettle/var
WORKDIR /srv/fettle
COPY config/requirements.txt config/requirements.txt
RUN pip install --no-cache-dir --require-hashes --only-binary :all: -r config/requirements.txt
COPY . .
USER fettle
ENV PYTHONUNBUFFERED=1
EXPOSE 8000
CMD ["python", "manage.py", "start", "--host", "0.0.0.0", "--no-worker"]
