package storage

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"

	"github.com/aws/aws-sdk-go-v2/aws"
	"github.com/aws/aws-sdk-go-v2/service/s3"
)

// Put stores a small object that the service itself has in memory, at an address where nothing is yet. One that is there
// already is ErrExists.
func (s *Store) Put(ctx context.Context, key string, data []byte, contentType string) error {
	sum, size := sha256.Sum256(data), int64(len(data))
	_, err := s.api.PutObject(ctx, &s3.PutObjectInput{
		Bucket: &s.bucket, Key: &key, Body: bytes.NewReader(data), ContentLength: &size, ContentType: &contentType,
		ChecksumSHA256: aws.String(base64.StdEncoding.EncodeToString(sum[:])), IfNoneMatch: aws.String("*"),
	})
	return wrap("store", key, err)
}
