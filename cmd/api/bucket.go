package main

import (
	"context"
	"fmt"

	"proofhouse/internal/embedded/s3server"
)

const bucketAbout = `Make the bucket where there is none, and give the service's and the workers' storage accounts the least rights that they need: the
service reads, writes and deletes in the bucket, workers read what was delivered and write evidence.

S3_ACCESS_KEY and S3_SECRET_KEY are those of an account that owns the bucket; neither program needs it afterwards. The accounts must exist.
`

func bucketCommand(ctx context.Context, io streams, env environment, args []string) int {
	c, code, done := parse(io, env, "bucket", bucketAbout, "s3-endpoint s3-region s3-bucket s3-access-key s3-secret-key s3-api-account s3-worker-account", args)
	if done {
		return code
	}
	if faults := c.bucketFaults(); len(faults) > 0 {
		return complain(io, "bucket", faults)
	}
	root := s3server.Client(c.s3Endpoint, c.s3Region, s3server.Keys{Access: string(c.s3AccessKey), Secret: string(c.s3SecretKey)})
	if err := s3server.Prepare(ctx, root, c.s3Bucket, c.s3APIAccount, c.s3WorkerAccount); err != nil {
		return failed(ctx, io, "bucket", err)
	}
	fmt.Fprintf(io.out, "The bucket %s has the least rights for %s and %s.\n", c.s3Bucket, c.s3APIAccount, c.s3WorkerAccount)
	return exitOK
}

func (c config) bucketFaults() (faults []string) {
	if len(c.rest) > 0 {
		faults = append(faults, "it takes no arguments besides its flags")
	}
	if c.s3AccessKey == "" || c.s3SecretKey == "" {
		faults = append(faults, "no storage keys: set S3_ACCESS_KEY and S3_SECRET_KEY to those of the bucket's owner")
	}
	if c.s3APIAccount == "" || c.s3WorkerAccount == "" || c.s3APIAccount == c.s3WorkerAccount {
		faults = append(faults, "S3_API_ACCOUNT and S3_WORKER_ACCOUNT must name two accounts, by access key or, on AWS, by ARN")
	}
	return faults
}
