FROM rust:1.95-slim-bookworm AS build
RUN apt-get update && apt-get install -y --no-install-recommends build-essential && rm -rf /var/lib/apt/lists/*
WORKDIR /src
COPY . .
RUN SQLX_OFFLINE=true cargo build --locked --release

FROM debian:bookworm-slim
RUN apt-get update && apt-get install -y --no-install-recommends curl && rm -rf /var/lib/apt/lists/* \
    && useradd --system --create-home lanewright && install -d -o lanewright -m 700 /var/lib/lanewright
COPY --from=build /src/target/release/lanewright /usr/local/bin/lanewright
USER lanewright
ENV LANEWRIGHT_LISTEN=0.0.0.0:8080
ENV LANEWRIGHT_HEALTH_LISTEN=0.0.0.0:8081
EXPOSE 8080 8081
HEALTHCHECK --interval=10s --timeout=3s --start-period=20s CMD ["curl", "-fsS", "http://127.0.0.1:8081/readyz"]
CMD ["lanewright", "serve"]
