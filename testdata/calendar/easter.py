# Dates of Western Easter, by python3-dateutil (Debian): python3 easter.py > easter.csv
import dateutil.easter

print("year,easter")
for year in range(1900, 2200):
    print(f"{year},{dateutil.easter.easter(year).isoformat()}")
