"""MQTT: journals as the outbox, the link to the broker, and the recorder at the other end."""
