# The server and the web app, built from this tree; nothing else goes into the second stage.
FROM rust:1-bookworm AS build
RUN rustup target add wasm32-unknown-unknown
WORKDIR /src
COPY . .
RUN cargo xtask web \
 && cargo build --release --package server

FROM debian:bookworm-slim
RUN apt-get update \
 && apt-get install --yes --no-install-recommends ca-certificates tzdata \
 && rm -rf /var/lib/apt/lists/* \
 && useradd --system --uid 10001 --home-dir /var/lib/witnessmark witnessmark \
 && install -d -o witnessmark -g witnessmark -m 0700 /var/lib/witnessmark /var/lib/witnessmark/photos
COPY --from=build /src/target/release/server /usr/local/bin/witnessmark-server
COPY --from=build /src/target/web-dist /usr/share/witnessmark/web
ENV WEB_DIST=/usr/share/witnessmark/web \
    LISTEN=0.0.0.0:8080
USER witnessmark
EXPOSE 8080
# The server ends cleanly on SIGTERM, which is what `docker stop` sends.
ENTRYPOINT ["/usr/local/bin/witnessmark-server"]
