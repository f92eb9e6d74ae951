// Package s3server runs a real S3 server in this process over a folder on this machine: for the demo, for one-machine
// use and for tests. Production uses whichever S3-compatible storage the studio has.
//
// One server per process: the gateway keeps settings in package-level variables.
package s3server

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"github.com/aws/aws-sdk-go-v2/aws"
	"github.com/aws/aws-sdk-go-v2/credentials"
	"github.com/aws/aws-sdk-go-v2/service/s3"
	"github.com/versity/versitygw/auth"
	"github.com/versity/versitygw/backend/meta"
	"github.com/versity/versitygw/backend/posix"
	"github.com/versity/versitygw/embedgw"
)

// Region is the region name the server answers to.
const Region = "us-east-1"

// maxParts is S3's own limit on the parts of one upload (Amazon S3 user guide, "Multipart upload limits").
const maxParts = 10_000

// copyMax is S3's own limit on an object that one call copies (Amazon S3 API reference, "CopyObject").
const copyMax = 5 << 30

// Config says where the server keeps its files and listens.
type Config struct {
	Dir           string // data folder, made if missing
	Listen        string // "127.0.0.1:9000"; port 0 picks a free one
	Bucket        string // made if missing
	AllowedOrigin string // of the pages that upload from a browser; "" allows none
}

// Keys is one set of credentials.
type Keys struct{ Access, Secret string }

// Server is a running server.
type Server struct {
	Endpoint string // "http://127.0.0.1:9000"
	Bucket   string
	API      Keys // may presign, complete, read and delete in the bucket
	Worker   Keys // may read what was delivered and write evidence

	stop context.CancelFunc
	done chan error
}

// secrets is what the data folder remembers between starts.
type secrets struct{ Root, API, Worker Keys }

// Start starts the server and returns once it answers. Credentials are random, made on the first start and kept in a
// file that only this user can read.
func Start(ctx context.Context, cfg Config) (*Server, error) {
	objects := filepath.Join(cfg.Dir, "objects")
	if err := os.MkdirAll(objects, 0o700); err != nil {
		return nil, fmt.Errorf("object storage: make the data folder: %w", err)
	}
	keys, err := loadSecrets(filepath.Join(cfg.Dir, "s3-keys.json"))
	if err != nil {
		return nil, fmt.Errorf("object storage: %w", err)
	}
	addr, err := freeAddress(cfg.Listen)
	if err != nil {
		return nil, fmt.Errorf("object storage: address %s is taken or cannot be used; choose another port: %w", cfg.Listen, err)
	}
	store, options, err := metadataStore(cfg.Dir, objects)
	if err != nil {
		return nil, fmt.Errorf("object storage: %w", err)
	}
	backend, err := posix.New(objects, store, options)
	if err != nil {
		return nil, fmt.Errorf("object storage: open %s: %w", objects, err)
	}
	runCtx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	s := &Server{Endpoint: "http://" + addr, Bucket: cfg.Bucket, API: keys.API, Worker: keys.Worker, stop: cancel, done: make(chan error, 1)}
	go func() {
		s.done <- embedgw.RunVersityGW(runCtx, backend, &embedgw.Config{
			RootUserAccess: keys.Root.Access, RootUserSecret: keys.Root.Secret, Region: Region,
			Ports: []string{addr}, MaxConnections: 1024, MaxRequests: 512, MultipartMaxParts: maxParts,
			HealthPath: "/healthz", Quiet: true, KeepAlive: true, DisableACLs: false, CORSAllowOrigin: cfg.AllowedOrigin,
			IAMService: newAccounts(keys),
		})
	}()
	if err := s.awaitHealthy(ctx); err != nil {
		_ = s.Stop()
		return nil, err
	}
	if err := s.prepareBucket(ctx, keys); err != nil {
		_ = s.Stop()
		return nil, err
	}
	return s, nil
}

// Stop ends the server and waits for it. It may be called more than once.
func (s *Server) Stop() error {
	s.stop()
	select {
	case err := <-s.done:
		s.done <- err
		if err != nil && !errors.Is(err, context.Canceled) {
			return fmt.Errorf("object storage: %w", err)
		}
		return nil
	case <-time.After(15 * time.Second):
		return errors.New("object storage did not stop within 15 s")
	}
}

func (s *Server) awaitHealthy(ctx context.Context) error {
	client := &http.Client{Timeout: time.Second}
	deadline := time.NewTimer(15 * time.Second)
	defer deadline.Stop()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for {
		if resp, err := client.Get(s.Endpoint + "/healthz"); err == nil {
			_ = resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				return nil
			}
		}
		select {
		case err := <-s.done:
			s.done <- err
			return fmt.Errorf("object storage did not start: %w", err)
		case <-ctx.Done():
			return fmt.Errorf("object storage: %w", ctx.Err())
		case <-deadline.C:
			return errors.New("object storage did not answer within 15 s")
		case <-tick.C:
		}
	}
}

// prepareBucket makes the bucket and its policy: what the API and the worker may do, and nothing more.
func (s *Server) prepareBucket(ctx context.Context, keys secrets) error {
	return Prepare(ctx, client(s.Endpoint, keys.Root), s.Bucket, keys.API.Access, keys.Worker.Access)
}

// Prepare makes a bucket where there is none, and gives two accounts the rights of BucketPolicy and no others. root is a client
// of an account that may do so.
func Prepare(ctx context.Context, root *s3.Client, bucket, api, worker string) error {
	_, err := root.HeadBucket(ctx, &s3.HeadBucketInput{Bucket: &bucket})
	if err != nil {
		if _, err = root.CreateBucket(ctx, &s3.CreateBucketInput{Bucket: &bucket}); err != nil {
			return fmt.Errorf("object storage: make bucket %s: %w", bucket, err)
		}
	}
	policy, err := json.Marshal(BucketPolicy(bucket, api, worker))
	if err != nil {
		return fmt.Errorf("object storage: %w", err)
	}
	if _, err = root.PutBucketPolicy(ctx, &s3.PutBucketPolicyInput{Bucket: &bucket, Policy: aws.String(string(policy))}); err != nil {
		return fmt.Errorf("object storage: set the bucket's policy: %w", err)
	}
	return nil
}

// BucketPolicy is the least that the API and the worker need, in S3's own policy language. It serves as the example for
// storage that a studio runs itself.
func BucketPolicy(bucket, api, worker string) map[string]any {
	arn := func(path string) string { return "arn:aws:s3:::" + bucket + path }
	statement := func(who string, resources []string, actions ...string) map[string]any {
		return map[string]any{"Effect": "Allow", "Principal": map[string]any{"AWS": []string{who}}, "Action": actions, "Resource": resources}
	}
	return map[string]any{"Version": "2012-10-17", "Statement": []any{
		statement(api, []string{arn("/*")}, "s3:GetObject", "s3:PutObject", "s3:DeleteObject", "s3:AbortMultipartUpload", "s3:ListMultipartUploadParts"),
		statement(api, []string{arn("")}, "s3:ListBucket", "s3:ListBucketMultipartUploads"),
		statement(worker, []string{arn("/in/*")}, "s3:GetObject"),
		statement(worker, []string{arn("/wo/*")}, "s3:GetObject", "s3:PutObject"),
	}}
}

func client(endpoint string, keys Keys) *s3.Client { return Client(endpoint, Region, keys) }

// Client is a client of any S3 server; endpoint "" is AWS.
func Client(endpoint, region string, keys Keys) *s3.Client {
	var base *string
	if endpoint != "" {
		base = &endpoint
	}
	return s3.New(s3.Options{
		BaseEndpoint: base, Region: region, UsePathStyle: base != nil,
		Credentials: credentials.NewStaticCredentialsProvider(keys.Access, keys.Secret, ""),
	})
}

// metadataStore keeps object metadata in extended attributes where the file system has them, beside the objects where not.
func metadataStore(dir, objects string) (meta.MetadataStorer, posix.PosixOpts, error) {
	options := posix.PosixOpts{NewDirPerm: 0o700, NewFilePerm: 0o600, Concurrency: 64, CopyObjectThreshold: copyMax}
	if (meta.XattrMeta{}).Test(objects) == nil {
		return meta.XattrMeta{}, options, nil
	}
	side := filepath.Join(dir, "metadata")
	if err := os.MkdirAll(side, 0o700); err != nil {
		return nil, options, fmt.Errorf("make the metadata folder: %w", err)
	}
	store, err := meta.NewSideCar(side)
	if err != nil {
		return nil, options, fmt.Errorf("open the metadata folder: %w", err)
	}
	options.SideCarDir = side
	return store, options, nil
}

func loadSecrets(path string) (secrets, error) {
	var s secrets
	data, err := os.ReadFile(path)
	if err == nil {
		if err = json.Unmarshal(data, &s); err != nil || s.Root.Access == "" {
			return s, fmt.Errorf("%s is damaged; move it away to have new keys made", path)
		}
		return s, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return s, err
	}
	s = secrets{Root: newKeys("root"), API: newKeys("api"), Worker: newKeys("worker")}
	if data, err = json.Marshal(s); err != nil {
		return s, err
	}
	return s, os.WriteFile(path, data, 0o600)
}

func newKeys(role string) Keys {
	return Keys{Access: role + "-" + randomHex(8), Secret: randomHex(20)}
}

func randomHex(n int) string {
	b := make([]byte, n)
	_, _ = rand.Read(b) // never fails, by its documentation
	return hex.EncodeToString(b)
}

// freeAddress resolves port 0 and tells early and clearly when the address is taken.
func freeAddress(listen string) (string, error) {
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return "", err
	}
	defer l.Close()
	return l.Addr().String(), nil
}

// accounts is the server's fixed list of users; it never changes once made.
type accounts struct {
	users map[string]auth.Account
}

func newAccounts(keys secrets) *accounts {
	a := &accounts{users: map[string]auth.Account{}}
	for _, k := range []Keys{keys.API, keys.Worker} {
		a.users[k.Access] = auth.Account{Access: k.Access, Secret: k.Secret, Role: auth.RoleUser}
	}
	return a
}

var errFixed = errors.New("the accounts of this server are fixed")

func (a *accounts) CreateAccount(auth.Account) error                  { return errFixed }
func (a *accounts) UpdateUserAccount(string, auth.MutableProps) error { return errFixed }
func (a *accounts) DeleteUserAccount(string) error                    { return errFixed }
func (a *accounts) Shutdown() error                                   { return nil }
func (a *accounts) GetUserAccount(access string) (auth.Account, error) {
	acc, ok := a.users[access]
	if !ok {
		return auth.Account{}, auth.ErrNoSuchUser
	}
	return acc, nil
}

// ResolveAccounts returns those of the access keys that do not exist.
func (a *accounts) ResolveAccounts(keys []string) ([]string, error) {
	var missing []string
	for _, k := range keys {
		if _, ok := a.users[k]; !ok {
			missing = append(missing, k)
		}
	}
	return missing, nil
}

func (a *accounts) ListUserAccounts() ([]auth.Account, error) {
	out := make([]auth.Account, 0, len(a.users))
	for _, u := range a.users {
		out = append(out, u)
	}
	return out, nil
}
