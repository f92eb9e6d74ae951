package storage

import (
	"context"
	"fmt"
	"time"

	"github.com/aws/aws-sdk-go-v2/aws"
	"github.com/aws/aws-sdk-go-v2/service/s3"
)

// Listed is an object as the bucket lists it.
type Listed struct {
	Key      string
	Size     int64
	Modified time.Time // by the storage's clock
}

// List lists the objects below a prefix in pages of at most 1,000, in the order of their keys, until each says otherwise.
func (s *Store) List(ctx context.Context, prefix string, each func(page []Listed) error) error {
	pages := s3.NewListObjectsV2Paginator(s.api, &s3.ListObjectsV2Input{Bucket: &s.bucket, Prefix: &prefix})
	for pages.HasMorePages() {
		out, err := pages.NextPage(ctx)
		if err != nil {
			return fmt.Errorf("storage: list %s: %w", prefix, err)
		}
		page := make([]Listed, len(out.Contents))
		for i, o := range out.Contents {
			page[i] = Listed{aws.ToString(o.Key), aws.ToInt64(o.Size), aws.ToTime(o.LastModified)}
		}
		if err := each(page); err != nil {
			return err
		}
	}
	return nil
}
