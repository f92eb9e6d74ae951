# Both programs in one small image; the entry point is the service, the worker names its own.
FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN scripts/viewer
RUN CGO_ENABLED=0 go build -trimpath -o /out/ ./cmd/api ./cmd/worker && mkdir -p /out/keys /out/scratch

FROM gcr.io/distroless/static-debian12:nonroot
COPY --from=build /out/api /out/worker /usr/local/bin/
COPY --from=build --chown=65532:65532 /out/keys /keys
COPY --from=build --chown=65532:65532 /out/scratch /scratch
ENTRYPOINT ["/usr/local/bin/api"]
