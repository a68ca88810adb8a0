#!/bin/sh
# Makes the time stamp in this folder with OpenSSL's own service (openssl ts), as a
# check from outside. Run in an empty folder; root.pem, token.der and message.txt are
# what the test reads. The keys are thrown away.
set -e
cat > openssl.cnf <<'CONF'
[req]
distinguished_name = dn
prompt = no
[dn]
CN = Invented root
[root]
basicConstraints = critical, CA:TRUE
keyUsage = critical, keyCertSign
[stamp]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = critical, timeStamping
[tsa]
default_tsa = service
[service]
serial = serial
signer_cert = stamp.pem
signer_key = stamp.key
certs = root.pem
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ess_cert_id_alg = sha256
signer_digest = sha256
CONF
openssl req -x509 -newkey rsa:2048 -nodes -keyout root.key -out root.pem -days 36500 -config openssl.cnf -extensions root
openssl req -new -newkey rsa:2048 -nodes -keyout stamp.key -out stamp.csr -config openssl.cnf -subj "/CN=Invented time stamps"
openssl x509 -req -in stamp.csr -CA root.pem -CAkey root.key -CAcreateserial -days 36500 -out stamp.pem -extfile openssl.cnf -extensions stamp
echo 01 > serial
printf 'a statement that somebody signed\n' > message.txt
openssl ts -query -data message.txt -sha256 -cert -out query.der
openssl ts -reply -config openssl.cnf -queryfile query.der -token_out -out token.der
rm -f root.key stamp.key stamp.csr root.srl serial* openssl.cnf query.der stamp.pem
