import time
from collections import Counter
from datetime import datetime
from zoneinfo import ZoneInfo
import pytest
from program import clock
from program.models import *
from program.models.scoped import scope
from reports.actions import make_due_reports
from reports.models import Report
from scheduling.models import Flag
from scheduling.scenario import *

@pytest.mark.parametrize("day,weeks", [(datetime(2026,12,3,10,30),3)])
def test_x(transactional_db, day, weeks):
    with clock.at(day.replace(tzinfo=ZoneInfo("America/Denver"))):
        t=time.time()
        with scope([], is_administration=True):
            seed_organisation(password="seven quiet herons admire two copper kettles")
        s=seed_building(BUILDINGS[5],weeks_of_history=weeks,seconds=1)
        print("\nSEED",day,time.time()-t,s)
        t=time.time()
        print(list(make_due_reports()),time.time()-t)
        b=Building.objects.get()
        with scope([b.pk]):
            for r in Report.objects.order_by("pk"): print(r.period_name,r.state,r.figures and (r.figures["attendance"],r.figures["completion"],r.figures["recording"]))
            for f in Flag.objects.open_now(): print(f.kind,f.cause,len(f.residents),len(f.sessions),f.since)
            from scheduling.actions.offering import offer_for,OFFERS
            for f in Flag.objects.open_now():
                if f.kind in OFFERS and len(f.residents)==1:
                    o=offer_for(flag=f); print('OFFER',f.kind,f.cause,o.week.name,len(o.remedies.keeps),len(o.remedies.moves),o.why)
            z=b.zone; now=clock.now()
            for x in Session.objects.filter(starts_at__date=day.date()).order_by("starts_at"): print(x.starts_at.astimezone(z),x.resident.name,x.state_at(now),x.is_overtaken)
