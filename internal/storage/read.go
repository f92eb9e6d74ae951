package storage

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"mime"
	"time"

	"github.com/aws/aws-sdk-go-v2/aws"
	"github.com/aws/aws-sdk-go-v2/service/s3"
)

// Fetch copies an object to dst and hashes it on the way, reading it once. It reads only the object that has this ETag:
// ErrChanged where another is there now, ErrNotFound where none is. An error from dst comes back as it is.
func (s *Store) Fetch(ctx context.Context, key, etag string, dst io.Writer) (sha256Hex string, size int64, err error) {
	in := &s3.GetObjectInput{Bucket: &s.bucket, Key: &key}
	if etag != "" {
		in.IfMatch = &etag
	}
	out, err := s.api.GetObject(ctx, in)
	if err != nil {
		if err = wrap("read", key, err); errors.Is(err, ErrExists) { // 412 on a read: the ETag no longer matches
			err = fmt.Errorf("storage: read %s: %w", key, ErrChanged)
		}
		return "", 0, err
	}
	defer out.Body.Close()
	h := sha256.New()
	size, err = io.CopyBuffer(io.MultiWriter(dst, h), out.Body, make([]byte, 1<<20))
	if err != nil {
		return "", size, fmt.Errorf("storage: read %s: %w", key, err)
	}
	return hex.EncodeToString(h.Sum(nil)), size, nil
}

// Open reads an object as a stream; the caller closes it.
func (s *Store) Open(ctx context.Context, key string) (io.ReadCloser, int64, error) {
	out, err := s.api.GetObject(ctx, &s3.GetObjectInput{Bucket: &s.bucket, Key: &key})
	if err != nil {
		return nil, 0, wrap("read", key, err)
	}
	return out.Body, aws.ToInt64(out.ContentLength), nil
}

// PutEvidence stores a piece of evidence under its digest. One that is there already is left as it is: the address is
// the digest, so it is the same; its length is checked all the same.
func (s *Store) PutEvidence(ctx context.Context, workOrderID string, body io.ReadSeeker, contentType string) (sha256Hex string, size int64, err error) {
	h := sha256.New()
	if size, err = io.Copy(h, body); err != nil {
		return "", 0, fmt.Errorf("storage: hash evidence: %w", err)
	}
	if _, err = body.Seek(0, io.SeekStart); err != nil {
		return "", 0, fmt.Errorf("storage: rewind evidence: %w", err)
	}
	sum := h.Sum(nil)
	sha256Hex = hex.EncodeToString(sum)
	key := EvidenceKey(workOrderID, sha256Hex)
	_, err = s.api.PutObject(ctx, &s3.PutObjectInput{
		Bucket: &s.bucket, Key: &key, Body: body, ContentLength: &size, ContentType: &contentType,
		ChecksumSHA256: aws.String(base64.StdEncoding.EncodeToString(sum)), IfNoneMatch: aws.String("*"),
	})
	if err = wrap("store evidence", key, err); err == nil {
		return sha256Hex, size, nil
	}
	if !errors.Is(err, ErrExists) {
		return "", 0, err
	}
	there, err := s.Head(ctx, key)
	if err != nil {
		return "", 0, err
	}
	if there.Size != size || there.SHA256 != "" && there.SHA256 != sha256Hex {
		return "", 0, fmt.Errorf("storage: evidence %s: %w", key, ErrChanged)
	}
	return sha256Hex, size, nil
}

// PresignGet lets its holder read one object for a while. filename is what a browser offers to save it as; "" shows it
// in the browser.
func (s *Store) PresignGet(ctx context.Context, key, filename, contentType string, ttl time.Duration) (Link, error) {
	in := &s3.GetObjectInput{Bucket: &s.bucket, Key: &key}
	if filename != "" {
		in.ResponseContentDisposition = aws.String(mime.FormatMediaType("attachment", map[string]string{"filename": filename}))
	}
	if contentType != "" {
		in.ResponseContentType = &contentType
	}
	req, err := s.presign.PresignGetObject(ctx, in, s3.WithPresignExpires(ttl))
	if err != nil {
		return Link{}, wrap("sign a download of", key, err)
	}
	return link(req.Method, req.URL, req.SignedHeader, ttl), nil
}

func hexOf(b64 string) string {
	b, err := base64.StdEncoding.DecodeString(b64)
	if err != nil || len(b) != 32 {
		return ""
	}
	return hex.EncodeToString(b)
}
