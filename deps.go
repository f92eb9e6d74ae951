//go:build deps

package proofhouse

import (
	_ "github.com/aws/aws-sdk-go-v2/credentials"
	_ "github.com/aws/aws-sdk-go-v2/service/s3"
	_ "github.com/getkin/kin-openapi/openapi3"
	_ "github.com/google/uuid"
	_ "github.com/jackc/pgx/v5/pgxpool"
	_ "github.com/labstack/echo/v4"
	_ "github.com/landlock-lsm/go-landlock/landlock"
	_ "github.com/oapi-codegen/runtime"
	_ "github.com/pressly/goose/v3"
	_ "github.com/prometheus/client_golang/prometheus"
	_ "github.com/qmuntal/gltf"
	_ "github.com/riverqueue/river"
	_ "github.com/riverqueue/river/riverdriver/riverpgxv5"
	_ "github.com/riverqueue/river/rivermigrate"
	_ "github.com/stretchr/testify/require"
	_ "github.com/tetratelabs/wazero"
	_ "github.com/versity/versitygw/embedgw"
	_ "golang.org/x/crypto/argon2"
	_ "golang.org/x/image/font/opentype"
	_ "golang.org/x/image/tiff"
	_ "golang.org/x/mod/sumdb/note"
	_ "golang.org/x/mod/sumdb/tlog"
	_ "golang.org/x/sys/unix"
	_ "golang.org/x/time/rate"
	_ "gopkg.in/yaml.v3"
	_ "pgregory.net/rapid"
)
