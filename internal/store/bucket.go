package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"net/http"
	"net/url"
	"path"
	"strings"
	"time"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"

	"fairpull/evidence"
)

// bucket keeps blobs as objects of an S3-compatible store, PREFIX/ab/abcd… for
// the digest abcd…
type bucket struct {
	client *minio.Client
	name   string // of the bucket
	prefix string // of its objects' names, with a slash at the end, or empty
	where  string // as a person may see it
}

// The schemes of the place of a bucket: encrypted, and not.
const (
	bucketScheme      = "s3"
	plainBucketScheme = "s3+http"
)

func isBucket(where string) bool {
	scheme, _, found := strings.Cut(where, "://")
	return found && (scheme == bucketScheme || scheme == plainBucketScheme)
}

// dialBucket reads s3://HOST[:PORT]/BUCKET[/PREFIX][?region=REGION]. The account
// comes from the environment or from the files where the trade's tools keep it;
// it is never part of the place.
func dialBucket(where string) (*bucket, error) {
	const form = "s3://HOST/BUCKET/PREFIX"
	u, err := url.Parse(where)
	if err != nil {
		return nil, fmt.Errorf("%w: the place of the logs cannot be read; write %s", ErrPlace, form)
	}
	if u.User != nil {
		return nil, fmt.Errorf("%w: the account does not belong into the place of the logs; set AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY", ErrPlace)
	}
	name, prefix, _ := strings.Cut(strings.Trim(u.Path, "/"), "/")
	if u.Host == "" || name == "" {
		return nil, fmt.Errorf("%w: %s names no host or no bucket; write %s", ErrPlace, u.Redacted(), form)
	}
	if prefix != "" {
		prefix = path.Clean(prefix) + "/"
	}
	client, err := minio.New(u.Host, &minio.Options{
		Creds: credentials.NewChainCredentials([]credentials.Provider{
			&credentials.EnvAWS{}, &credentials.FileAWSCredentials{},
		}),
		Secure:       u.Scheme == bucketScheme,
		Region:       u.Query().Get("region"),
		BucketLookup: minio.BucketLookupAuto,
	})
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrPlace, u.Redacted(), err)
	}
	return &bucket{client: client, name: name, prefix: prefix, where: u.Redacted()}, nil
}

// initBucket makes a part of a bucket that of a workspace. One that has an owner
// is [ErrExists].
func initBucket(ctx context.Context, where, workspace string) (*bucket, error) {
	b, err := dialBucket(where)
	if err != nil {
		return nil, err
	}
	switch _, err := b.read(ctx, b.prefix+ownerFile); {
	case err == nil:
		return nil, fmt.Errorf("%w: %s belongs to one already: %w", ErrBlobs, b.where, ErrExists)
	case !errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("place of logs %s: %w", b.where, err)
	}
	options := minio.PutObjectOptions{}
	options.SetMatchETagExcept("*") // of two programs that make it one gets the name
	if err := b.write(ctx, b.prefix+ownerFile, []byte(workspace+"\n"), options); err != nil {
		return nil, fmt.Errorf("place of logs %s: %w", b.where, err)
	}
	owner, err := b.read(ctx, b.prefix+ownerFile)
	if err != nil {
		return nil, fmt.Errorf("place of logs %s: %w", b.where, err)
	}
	return b, owned(b.where, string(owner), workspace)
}

// openBucket opens the part of a bucket that is a workspace's.
func openBucket(ctx context.Context, where, workspace string) (*bucket, error) {
	b, err := dialBucket(where)
	if err != nil {
		return nil, err
	}
	owner, err := b.read(ctx, b.prefix+ownerFile)
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrBlobs, b.where, err)
	}
	return b, owned(b.where, string(owner), workspace)
}

func (b *bucket) object(d evidence.Digest) string {
	name := d.Hex()
	return b.prefix + name[:2] + "/" + name
}

// Put sends data with its checksum, so that the server takes it whole or not.
func (b *bucket) Put(ctx context.Context, data []byte) (d evidence.Digest, old bool, err error) {
	if len(data) > MaxBlob {
		return d, false, refused("it is longer than %d bytes", MaxBlob)
	}
	d = evidence.OfBytes(data)
	switch _, err := b.Get(ctx, d); {
	case err == nil:
		return d, true, nil
	case !errors.Is(err, fs.ErrNotExist):
		return evidence.Digest{}, false, err
	}
	if err := b.write(ctx, b.object(d), data, minio.PutObjectOptions{}); err != nil {
		return evidence.Digest{}, false, fmt.Errorf("keep %s in %s: %w", d, b.where, err)
	}
	return d, false, nil
}

func (b *bucket) write(ctx context.Context, object string, data []byte, options minio.PutObjectOptions) error {
	options.DisableMultipart, options.SendContentMd5 = true, true
	options.ContentType = "application/octet-stream"
	// Signed in pieces, an empty body would go without a length, which servers
	// may refuse; its checksum goes along all the same.
	options.DisableContentSha256 = len(data) == 0
	_, err := b.client.PutObject(ctx, b.name, object, bytes.NewReader(data), int64(len(data)), options)
	return objectError(object, err)
}

// Get reads an object and compares its digest.
func (b *bucket) Get(ctx context.Context, d evidence.Digest) ([]byte, error) {
	data, err := b.read(ctx, b.object(d))
	if err != nil {
		return nil, err
	}
	if found := evidence.OfBytes(data); found != d {
		return nil, &DamagedError{Name: b.where + ": " + b.object(d), Recorded: d, Found: found}
	}
	return data, nil
}

func (b *bucket) read(ctx context.Context, object string) (data []byte, err error) {
	from, err := b.client.GetObject(ctx, b.name, object, minio.GetObjectOptions{})
	if err != nil {
		return nil, objectError(object, err)
	}
	defer from.Close() // it is only read
	if data, err = io.ReadAll(io.LimitReader(from, MaxBlob+1)); err != nil {
		return nil, objectError(object, err)
	}
	if len(data) > MaxBlob {
		return nil, refused("%s is longer than %d bytes", object, MaxBlob)
	}
	return data, nil
}

// Written asks for an object's time.
func (b *bucket) Written(ctx context.Context, d evidence.Digest) (time.Time, error) {
	info, err := b.client.StatObject(ctx, b.name, b.object(d), minio.StatObjectOptions{})
	return info.LastModified, objectError(b.object(d), err)
}

// All lists the objects.
func (b *bucket) All(ctx context.Context) iter.Seq2[blobFile, error] {
	return func(yield func(blobFile, error) bool) {
		for object := range b.client.ListObjectsIter(ctx, b.name, minio.ListObjectsOptions{Prefix: b.prefix, Recursive: true}) {
			if object.Err != nil {
				yield(blobFile{}, fmt.Errorf("%s: %w", b.where, object.Err))
				return
			}
			if object.Key == b.prefix+ownerFile {
				continue
			}
			file := blobFile{Name: object.Key, Modified: object.LastModified}
			if d, err := evidence.ParseHex(path.Base(object.Key)); err == nil && object.Key == b.object(d) {
				file.Digest = d
			}
			if !yield(file, nil) {
				return
			}
		}
	}
}

// Remove removes one object.
func (b *bucket) Remove(ctx context.Context, file blobFile) error {
	return objectError(file.Name, b.client.RemoveObject(ctx, b.name, file.Name, minio.RemoveObjectOptions{}))
}

// objectError gives an answer of the server the kind that callers ask for.
func objectError(object string, err error) error {
	var answer minio.ErrorResponse
	if errors.As(err, &answer) {
		switch {
		case answer.Code == minio.NoSuchBucket:
			return fmt.Errorf("there is no bucket %s", answer.BucketName)
		case answer.StatusCode == http.StatusNotFound:
			return &fs.PathError{Op: "get", Path: object, Err: fs.ErrNotExist}
		case answer.StatusCode == http.StatusPreconditionFailed:
			return fmt.Errorf("%s: %w", object, ErrExists)
		}
	}
	return err
}
