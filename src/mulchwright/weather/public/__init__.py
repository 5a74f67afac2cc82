"""Readers for what public weather services really serve: bytes in, the house's weather records out.

One small module for each service, and no network: `services.weather_services` asks and brings the bytes.
`catalog` says of each service who runs it, what is sent, and the terms its data come under.
"""

__all__: list[str] = []
