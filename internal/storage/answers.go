package storage

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/aws/aws-sdk-go-v2/aws"
	"github.com/aws/aws-sdk-go-v2/service/s3"
	"github.com/aws/smithy-go"
)

// ErrKeys means that the storage does not know our keys, or no longer: nothing on it can be reached until they are replaced.
var ErrKeys = errors.New("the storage refuses S3_ACCESS_KEY and S3_SECRET_KEY")

// keyCodes are S3's words for keys that it does not take (Amazon S3 API Reference, "List of error codes", from memory).
var keyCodes = []string{"InvalidAccessKeyId", "SignatureDoesNotMatch", "ExpiredToken", "InvalidToken", "TokenRefreshRequired", "RequestTimeTooSkewed", "NotSignedUp", "AccountProblem"}

// Answers asks for an object that is never there, by the rights that every account has, and says why storage as a whole cannot
// be used: ErrKeys, or whatever kept it from answering; nil where it does.
func (s *Store) Answers(ctx context.Context) error {
	out, err := s.api.GetObject(ctx, &s3.GetObjectInput{Bucket: &s.bucket, Key: aws.String("in/never")})
	if err == nil {
		return out.Body.Close()
	}
	var told smithy.APIError
	if !errors.As(err, &told) {
		return wrap("ask", s.bucket, err)
	}
	switch code := told.ErrorCode(); {
	case code == "NoSuchKey", code == "AccessDenied": // the latter is told instead of the former to who may not list
		return nil
	case slices.Contains(keyCodes, code):
		return fmt.Errorf("%w (%s)", ErrKeys, code)
	}
	return wrap("ask", s.bucket, err)
}
