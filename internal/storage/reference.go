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

// Copy puts an object's bytes at another address, inside the storage. What is there already is left as it is.
func (s *Store) Copy(ctx context.Context, from, to string) error {
	if _, err := s.Head(ctx, to); err == nil {
		return nil
	}
	source := s.bucket + "/" + from // keys of ours need no escaping: letters, digits, dashes and slashes
	_, err := s.api.CopyObject(ctx, &s3.CopyObjectInput{Bucket: &s.bucket, Key: &to, CopySource: &source})
	return wrap("copy", from, err)
}
