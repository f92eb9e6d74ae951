package storage

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/aws/aws-sdk-go-v2/aws"
	"github.com/aws/aws-sdk-go-v2/service/s3"
	"github.com/aws/aws-sdk-go-v2/service/s3/types"
)

// SingleMax is the largest file that goes up in one request; larger ones go up in parts.
const SingleMax = 64 << 20

// PartSize is the size of every part but the last. S3 wants at least 5 MiB and at most 10,000 parts (Amazon S3 user
// guide, "Multipart upload limits"): 64 MiB parts reach 625 GiB.
const PartSize = 64 << 20

// PresignPut lets its holder put exactly the bytes with this digest and length at key, if nothing is there yet.
func (s *Store) PresignPut(ctx context.Context, key, sha256Hex string, size int64, ttl time.Duration) (Link, error) {
	sum, err := checksum(sha256Hex)
	if err != nil {
		return Link{}, err
	}
	req, err := s.presign.PresignPutObject(ctx, &s3.PutObjectInput{
		Bucket: &s.bucket, Key: &key, ContentLength: &size, ChecksumSHA256: sum, IfNoneMatch: aws.String("*"),
	}, s3.WithPresignExpires(ttl))
	if err != nil {
		return Link{}, wrap("sign an upload of", key, err)
	}
	return link(req.Method, req.URL, req.SignedHeader, ttl), nil
}

// CreateMultipart begins an upload in parts and returns its id.
func (s *Store) CreateMultipart(ctx context.Context, key string) (string, error) {
	out, err := s.api.CreateMultipartUpload(ctx, &s3.CreateMultipartUploadInput{
		Bucket: &s.bucket, Key: &key, ChecksumAlgorithm: types.ChecksumAlgorithmSha256,
	})
	if err != nil {
		return "", wrap("begin an upload of", key, err)
	}
	return aws.ToString(out.UploadId), nil
}

// PresignPart lets its holder put exactly the bytes with this digest and length as part number (from 1) of an upload.
func (s *Store) PresignPart(ctx context.Context, key, uploadID string, number int, sha256Hex string, size int64, ttl time.Duration) (Link, error) {
	sum, err := checksum(sha256Hex)
	if err != nil {
		return Link{}, err
	}
	req, err := s.presign.PresignUploadPart(ctx, &s3.UploadPartInput{
		Bucket: &s.bucket, Key: &key, UploadId: &uploadID, PartNumber: aws.Int32(int32(number)), ContentLength: &size, ChecksumSHA256: sum,
	}, s3.WithPresignExpires(ttl))
	if err != nil {
		return Link{}, wrap("sign a part of", key, err)
	}
	return link(req.Method, req.URL, req.SignedHeader, ttl), nil
}

// Part is one part of an upload as the storage holds it.
type Part struct {
	Number int
	ETag   string
	Size   int64
	SHA256 string // hex
}

// Parts lists what has arrived of an upload, by number. ErrNotFound where the upload is over or was abandoned.
func (s *Store) Parts(ctx context.Context, key, uploadID string) ([]Part, error) {
	var parts []Part
	pages := s3.NewListPartsPaginator(s.api, &s3.ListPartsInput{Bucket: &s.bucket, Key: &key, UploadId: &uploadID})
	for pages.HasMorePages() {
		page, err := pages.NextPage(ctx)
		if err != nil {
			return nil, wrap("list the parts of", key, err)
		}
		for _, p := range page.Parts {
			parts = append(parts, Part{int(aws.ToInt32(p.PartNumber)), aws.ToString(p.ETag), aws.ToInt64(p.Size), hexOf(aws.ToString(p.ChecksumSHA256))})
		}
	}
	return parts, nil
}

// CompleteMultipart joins the parts, if nothing is at key yet. Completing again what was completed is no error. The
// service calls this, never the vendor: so a link alone cannot finish an upload.
func (s *Store) CompleteMultipart(ctx context.Context, key, uploadID string, parts []Part) error {
	done := make([]types.CompletedPart, len(parts))
	for i, p := range parts {
		done[i] = types.CompletedPart{ETag: aws.String(p.ETag), PartNumber: aws.Int32(int32(p.Number))}
		if p.SHA256 != "" {
			sum, err := checksum(p.SHA256)
			if err != nil {
				return err
			}
			done[i].ChecksumSHA256 = sum
		}
	}
	_, err := s.api.CompleteMultipartUpload(ctx, &s3.CompleteMultipartUploadInput{
		Bucket: &s.bucket, Key: &key, UploadId: &uploadID, IfNoneMatch: aws.String("*"),
		MultipartUpload: &types.CompletedMultipartUpload{Parts: done},
	})
	return wrap("complete the upload of", key, err)
}

// AbortMultipart gives up an upload; one that is over is no error.
func (s *Store) AbortMultipart(ctx context.Context, key, uploadID string) error {
	_, err := s.api.AbortMultipartUpload(ctx, &s3.AbortMultipartUploadInput{Bucket: &s.bucket, Key: &key, UploadId: &uploadID})
	if err = wrap("abandon the upload of", key, err); errors.Is(err, ErrNotFound) {
		return nil
	}
	return err
}

// Probe finds out whether the bucket is there and keeps its promise: a second write under If-None-Match must fail.
func (s *Store) Probe(ctx context.Context) error {
	nonce := make([]byte, 16)
	_, _ = rand.Read(nonce) // never fails, by its documentation
	key := "wo/probe/" + hex.EncodeToString(nonce)
	defer func() { _ = s.Delete(context.WithoutCancel(ctx), key) }()
	put := func(body string) error {
		sum := sha256.Sum256([]byte(body))
		c, err := checksum(hex.EncodeToString(sum[:]))
		if err != nil {
			return err
		}
		_, err = s.api.PutObject(ctx, &s3.PutObjectInput{
			Bucket: &s.bucket, Key: &key, Body: bytes.NewReader([]byte(body)), ChecksumSHA256: c, IfNoneMatch: aws.String("*"),
		})
		return wrap("probe with", key, err)
	}
	if err := put("first"); err != nil {
		return err
	}
	switch err := put("second"); {
	case err == nil:
		return fmt.Errorf("storage: probe: %w", ErrUnsafe)
	case !errors.Is(err, ErrExists):
		return err
	}
	return nil
}

func link(method, url string, signed http.Header, ttl time.Duration) Link {
	l := Link{Method: method, URL: url, Headers: map[string]string{}, Expires: time.Now().Add(ttl).UTC().Truncate(time.Second)}
	for name, values := range signed {
		if !strings.EqualFold(name, "host") && !strings.EqualFold(name, "content-length") {
			l.Headers[http.CanonicalHeaderKey(name)] = strings.Join(values, ",")
		}
	}
	return l
}
