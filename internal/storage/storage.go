// Package storage keeps delivered files and evidence in S3-compatible object storage.
//
// There is one code path, S3, on every machine. Every link that lets somebody write is bound to the SHA-256, the length
// and the key of one object that must not exist yet, so that no link can change bytes once they are there; nothing leans
// on bucket versioning. A sealed object is read under the ETag that was seen when it was sealed.
package storage

import (
	"context"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"github.com/aws/aws-sdk-go-v2/aws"
	"github.com/aws/aws-sdk-go-v2/credentials"
	"github.com/aws/aws-sdk-go-v2/service/s3"
	"github.com/aws/smithy-go"
	smithyhttp "github.com/aws/smithy-go/transport/http"
)

// The kinds of failure that callers tell apart with errors.Is.
var (
	ErrNotFound = errors.New("no such object")
	ErrExists   = errors.New("the object exists already")
	ErrChanged  = errors.New("the object is not the one that was sealed")
	// ErrUnsafe means the storage lets a second write replace an object that a condition protects.
	ErrUnsafe = errors.New("this storage ignores If-None-Match: sealed objects would not be safe on it")
)

// Config says where the objects are.
type Config struct {
	Endpoint string // "" for AWS's own
	// PublicEndpoint is what links are made for, where clients reach the storage under another address. "" for Endpoint.
	PublicEndpoint string
	Region         string
	Bucket         string
	AccessKey      string
	SecretKey      string // never printed
	VirtualHosts   bool   // bucket in the host name instead of the path
}

// Store is one bucket. It is safe for concurrent use.
type Store struct {
	bucket  string
	api     *s3.Client
	presign *s3.PresignClient
	links   string // scheme and host that links lead to
}

// Open makes a Store; it does not connect. Use Probe to find out whether the bucket is there and safe.
func Open(cfg Config) (*Store, error) {
	if cfg.Bucket == "" {
		return nil, errors.New("storage: no bucket named")
	}
	if cfg.AccessKey == "" || cfg.SecretKey == "" {
		return nil, errors.New("storage: access key and secret key are both needed")
	}
	if cfg.Region == "" {
		cfg.Region = "us-east-1"
	}
	options := func(endpoint string) s3.Options {
		o := s3.Options{
			Region: cfg.Region, UsePathStyle: !cfg.VirtualHosts,
			Credentials: credentials.NewStaticCredentialsProvider(cfg.AccessKey, cfg.SecretKey, ""),
			// Checksums are ours to name: every write carries the SHA-256 of the manifest or of the evidence.
			RequestChecksumCalculation: aws.RequestChecksumCalculationWhenRequired,
			ResponseChecksumValidation: aws.ResponseChecksumValidationWhenRequired,
			HTTPClient:                 &http.Client{Transport: transport()},
			RetryMaxAttempts:           4,
		}
		if endpoint != "" {
			o.BaseEndpoint = &endpoint
		}
		return o
	}
	public := cfg.PublicEndpoint
	if public == "" {
		public = cfg.Endpoint
	}
	s := &Store{
		bucket:  cfg.Bucket,
		api:     s3.New(options(cfg.Endpoint)),
		presign: s3.NewPresignClient(s3.New(options(public))),
	}
	link, err := s.PresignGet(context.Background(), "any", "", "", time.Minute) // signed here; nothing is asked
	if err != nil {
		return nil, fmt.Errorf("storage: links cannot be made: %w", err)
	}
	address, err := url.Parse(link.URL)
	if err != nil {
		return nil, fmt.Errorf("storage: links cannot be made: %w", err)
	}
	s.links = address.Scheme + "://" + address.Host
	return s, nil
}

// LinkOrigin is the scheme and host that links lead to, as a page's policy names it.
func (s *Store) LinkOrigin() string { return s.links }

func transport() *http.Transport {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.MaxIdleConnsPerHost = 64
	t.ResponseHeaderTimeout = 60 * time.Second
	return t
}

// Link is one request that its holder may make once, until Expires.
type Link struct {
	Method  string            `json:"method"`
	URL     string            `json:"url"`
	Headers map[string]string `json:"headers"` // all of them must be sent as they are
	Expires time.Time         `json:"expires"`
}

// InKey is the key of a delivered file. It is never used for a second file.
func InKey(vendorID, deliveryID, fileID string) string {
	return "in/" + vendorID + "/" + deliveryID + "/" + fileID
}

// EvidenceKey is the address of a piece of evidence: its digest within its work order, so that asking for a digest tells
// nothing about other work orders.
func EvidenceKey(workOrderID, sha256Hex string) string {
	return "wo/" + workOrderID + "/evidence/" + sha256Hex
}

// Object is what storage says of an object.
type Object struct {
	Size      int64
	ETag      string
	VersionID string
	// SHA256 is the digest in hex where the storage keeps one for the whole object; a multipart object has none.
	SHA256 string
}

// Head looks an object up. ErrNotFound if there is none.
func (s *Store) Head(ctx context.Context, key string) (Object, error) {
	out, err := s.api.HeadObject(ctx, &s3.HeadObjectInput{Bucket: &s.bucket, Key: &key, ChecksumMode: "ENABLED"})
	if err != nil {
		return Object{}, wrap("look up", key, err)
	}
	o := Object{Size: aws.ToInt64(out.ContentLength), ETag: aws.ToString(out.ETag), VersionID: aws.ToString(out.VersionId)}
	if sum, err := base64.StdEncoding.DecodeString(aws.ToString(out.ChecksumSHA256)); err == nil && len(sum) == 32 {
		o.SHA256 = hex.EncodeToString(sum)
	}
	return o, nil
}

// Delete removes an object; one that is not there is no error.
func (s *Store) Delete(ctx context.Context, key string) error {
	_, err := s.api.DeleteObject(ctx, &s3.DeleteObjectInput{Bucket: &s.bucket, Key: &key})
	if err = wrap("delete", key, err); errors.Is(err, ErrNotFound) {
		return nil
	}
	return err
}

// checksum turns a digest in hex into what S3's headers carry.
func checksum(sha256Hex string) (*string, error) {
	b, err := hex.DecodeString(sha256Hex)
	if err != nil || len(b) != 32 {
		return nil, fmt.Errorf("storage: %q is not a SHA-256 in hex", sha256Hex)
	}
	v := base64.StdEncoding.EncodeToString(b)
	return &v, nil
}

// wrap names what was being done and gives the error its kind.
func wrap(doing, key string, err error) error {
	if err == nil {
		return nil
	}
	var kind error
	var code string
	var api smithy.APIError
	if errors.As(err, &api) {
		code = api.ErrorCode()
	}
	status := 0
	var resp *smithyhttp.ResponseError
	if errors.As(err, &resp) {
		status = resp.HTTPStatusCode()
	}
	switch {
	case code == "NoSuchKey" || code == "NotFound" || code == "NoSuchUpload" || status == http.StatusNotFound:
		kind = ErrNotFound
	case code == "PreconditionFailed" || status == http.StatusPreconditionFailed:
		kind = ErrExists
	}
	if kind != nil {
		return fmt.Errorf("storage: %s %s: %w (%s)", doing, key, kind, code)
	}
	return fmt.Errorf("storage: %s %s: %w", doing, key, err)
}
