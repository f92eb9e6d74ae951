package httpapi

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// says answers every question with one document.
type says []byte

func (s says) RoundTrip(r *http.Request) (*http.Response, error) {
	return &http.Response{StatusCode: http.StatusOK, Header: http.Header{"Content-Type": {"application/json"}}, Body: io.NopCloser(bytes.NewReader(s)), Request: r}, nil
}

// FuzzProvider reads what a party's log-in provider says of itself and of a person. Whatever it says, nobody is sent to an
// address that is not safe, and nobody was asked who they are later than now.
func FuzzProvider(f *testing.F) {
	f.Add([]byte(`{"issuer":"https://id.example","authorization_endpoint":"https://id.example/a","token_endpoint":"https://id.example/t","jwks_uri":"https://id.example/k","token_endpoint_auth_methods_supported":["client_secret_post"]}`))
	f.Add([]byte(`{"issuer":"https://id.example","authorization_endpoint":"http://10.0.0.1/a","token_endpoint":"javascript:x"}`))
	f.Add([]byte(`{"sub":"1","email":"ole@brackwater.example","email_verified":"true","name":"Ole","azp":"x","auth_time":1764300000}`))
	f.Add([]byte(`{"email_verified":{"a":[]},"auth_time":9223372036854775807}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		const issuer = "https://id.example"
		p := &providers{client: &http.Client{Transport: says(data)}, byID: map[uuid.UUID]discovered{}}
		if found, err := p.of(oidc.ClientContext(t.Context(), p.client), uuid.Nil, issuer); err == nil {
			for _, address := range []string{found.Endpoint().AuthURL, found.Endpoint().TokenURL} {
				u, err := url.Parse(address)
				require.NoError(t, err)
				require.Equal(t, "https", u.Scheme, address)
				require.NotEmpty(t, u.Host, address)
			}
			authStyle(ledger.ProviderClient{ClientSecret: "x"}, found)
		}
		var c claims
		if json.Unmarshal(data, &c) == nil {
			if at := c.askedAt(); at != nil {
				require.WithinRange(t, *at, time.Unix(1, 0), time.Now().Add(signInFor+time.Second))
			}
		}
	})
}
